"""How people and programs write a number, a time, a heading; nothing here knows a file."""
