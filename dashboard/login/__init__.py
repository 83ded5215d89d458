"""What stands on the page of someone who may not look (yet)."""
