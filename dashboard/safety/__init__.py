"""What to mind: oven, steam, electricity in damp places, food."""
