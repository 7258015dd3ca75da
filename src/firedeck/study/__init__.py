"""The use cases: the only place where stages are chained and files are touched."""
