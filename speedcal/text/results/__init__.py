"""The lines of a result, as ``str()`` and the command print them."""
