"""What the pictures themselves show: where faces are, how far they stand, how blurred they are."""
