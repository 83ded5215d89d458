"""Any number of simulated nodes against somebody's own broker or ports, in one process or as real MicroPython."""
