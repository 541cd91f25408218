"""What readings tell beside a speed before any dial is fitted to them."""
