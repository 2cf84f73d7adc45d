"""From a business's own billing records to its assumptions. Customer identifiers are replaced by keyed hashes on
reading.
"""
