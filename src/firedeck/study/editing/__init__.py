"""Editing of definition files: drafts with their history, single changes, and what is wrong with them."""
