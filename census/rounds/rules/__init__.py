"""The census as rules: pure Python on plain values, no Django and no database."""
