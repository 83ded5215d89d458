"""Everything a bakery's machine runs, as systemd units or as a compose file; made from what is set up."""
