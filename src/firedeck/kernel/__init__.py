"""Array code: floats and arrays in N, mm, MPa, s; no units object, file or class."""
