"""The planned day, and making one."""
