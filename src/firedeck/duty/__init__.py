"""What tries to open the joint: cylinder pressure."""
