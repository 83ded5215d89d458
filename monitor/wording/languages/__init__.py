"""One catalogue a language (gettext's PO format), named by its code, and what reads them."""
