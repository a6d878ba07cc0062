"""Refrigerant, ice and electrical physics, the virtual machine and what it should show."""
