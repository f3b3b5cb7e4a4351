"""The desk: all of scout in the user's own browser, on the user's own machine.

`server` listens on 127.0.0.1 and hands out one page. Every tab of it has a workspace: a private folder and
a process of its own (`worker`), in which the jobs of `app` do the work.
"""
