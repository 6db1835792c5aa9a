"""Parts of the page *Bring in logs*."""
