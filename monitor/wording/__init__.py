"""Facts and a reader in, text out: every sentence that people read. Pure but for the translation files."""
