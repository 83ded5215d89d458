"""What the baker does about it: alerts and every sentence a baker reads. Pure."""
