"""Drawings and results in, files out: PDF pages, SVG, DXF and pictures; decides nothing."""
