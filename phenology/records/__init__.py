"""What is written down: looks, work and flushes, and the intervals they prove."""
