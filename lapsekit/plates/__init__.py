"""Printed plates: how one day's number came about, on one sheet. Pillow draws them."""
