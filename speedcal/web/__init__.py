"""The upload page; nothing else in the package imports it."""
