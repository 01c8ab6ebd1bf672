"""Answers and records handed on as files that other programs read.

What every export keeps to: exact positions only where asked for; no study title and no person's
name unless given; text that a spreadsheet would run made harmless; seed, digests, versions, sources
and cautions beside the numbers.
"""
