"""Agreement with sources outside: one file per source, named in its docstring with how sure it is."""
