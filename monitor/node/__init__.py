"""Setting a node up: its configuration, the board, the firmware on it, a look at its readings, its calibration."""
