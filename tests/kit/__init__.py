"""What tests share: builders of realistic values, written by hand and independent of the rooms under test."""
