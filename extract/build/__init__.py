"""The last step: from settled mentions to the visit records, one module for each part of the record."""

from extract.build.builder import Builder

__all__ = ["Builder"]
