"""The commands of `bench-hours`: options in, results on stdout; each calls services and prints what text
makes of them.
"""
