"""Readings that a machine logged: clocks, the latent speed behind both instruments and the dial of them."""
