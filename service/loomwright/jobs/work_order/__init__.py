"""The work order of a job: its steps in a safe order, with parts, hours, tools and torques."""
