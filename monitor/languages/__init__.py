"""Languages that sentences can be told in: a translation file each, named by its code, and what reads them."""
