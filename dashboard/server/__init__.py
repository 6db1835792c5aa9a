"""The server: sockets, TLS, who may come in, and the routes that are no pages."""
