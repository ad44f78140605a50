"""The machine: motors, spindles, deck, supply, contacts, and the wires with the detector on them."""
