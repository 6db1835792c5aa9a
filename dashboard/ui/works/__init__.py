"""Parts of the page *Works*."""
