"""Local pages over a bench folder: the same use cases as the command line, shown in a browser."""
