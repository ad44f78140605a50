"""The signal level: what the two wires of a motor carry, the analogue front end on them, and what it makes of them."""
