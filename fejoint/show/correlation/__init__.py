"""Coupon tests beside their predictions: curve, causes of a difference, figures found; as data, words, tables, figures, files."""
