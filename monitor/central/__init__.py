"""A central store of several sites: everything a site's store holds is sent there, and copies are made from there."""
