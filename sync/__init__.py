"""The controller: it sees pulses, currents and supply volts, never a true position."""
