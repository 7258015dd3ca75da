"""Tests through the public interface; see CONTRIBUTING.md for how they are laid out."""
