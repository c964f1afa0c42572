"""The job folder: its schema, whole-or-nothing results, and what is stale; computes nothing.

:mod:`~fitkit.job.job_folder` opens and makes jobs; ``*_files`` turn each step's value into
files and back to the last bit; :mod:`~fitkit.job.made_from` knows what is stale;
:mod:`~fitkit.job.settings` is the meaning of ``job.toml``.
"""
