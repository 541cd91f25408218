"""How a request comes in: connections, addresses, limits, headers."""
