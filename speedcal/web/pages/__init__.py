"""The pages, each behind its address."""
