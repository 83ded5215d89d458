"""What the dough does: air, heat, kinetics, rise, forecast. Pure."""
