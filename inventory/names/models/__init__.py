from .taxon import Taxon

__all__ = ["Taxon"]
