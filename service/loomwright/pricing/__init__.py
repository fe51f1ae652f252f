"""Exact money, price books and bills of materials; no web, file or clock is known here."""
