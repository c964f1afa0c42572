"""The only place where the job meets the steps: one function a step, with progress and findings."""
