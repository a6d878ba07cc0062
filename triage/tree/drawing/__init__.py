"""Drawings of a tree: one sketch of it, told as Mermaid text, as DOT text and as an outline."""
