"""An invented engine, its gaskets and prints: the demonstration, and the truth for tests."""
