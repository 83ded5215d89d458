"""Charts, tub, strips and marks, the palette, and charts as files. Knows no store."""
