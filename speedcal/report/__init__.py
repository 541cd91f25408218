"""Plots and the page for the customer."""
