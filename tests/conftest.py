"""Puts this folder on the import path, so that tests in sub-folders share its helper modules."""
