"""Statistics on plain arrays: the exact list, orders, evidence, power, second opinions."""
