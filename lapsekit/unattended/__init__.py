"""What runs without a visit: the schedule, the capture job, the morning chain."""
