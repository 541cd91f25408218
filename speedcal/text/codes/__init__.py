"""The words under every code, a module a room."""
