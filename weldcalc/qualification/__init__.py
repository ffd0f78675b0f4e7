"""Qualification: test plan, coupons, acceptance, statistics and changes."""
