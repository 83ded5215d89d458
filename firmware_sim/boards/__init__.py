"""Classes of board: their pins and clocks (hal), real, simulated or emulated, and how firmware is laid out for each."""
