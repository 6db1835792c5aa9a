"""Parts of the page *Promised and kept*."""
