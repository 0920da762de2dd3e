"""The circuit, a file a sheet."""
