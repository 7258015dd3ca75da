"""Sources of the documentation, and the programs that write its generated pages."""
