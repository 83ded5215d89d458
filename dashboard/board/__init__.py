"""Every running batch: trouble first, then by who needs hands next."""
