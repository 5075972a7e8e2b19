"""What a trial can see and what it takes: power, size, allocation, pilot; the plan as a folder."""
