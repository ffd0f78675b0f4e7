"""Parts of the calibration: from coupons to constants, with the reasons to refuse."""
