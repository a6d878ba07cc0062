"""Practice and measurement: a caller made up from the virtual machine with a hidden fault."""
