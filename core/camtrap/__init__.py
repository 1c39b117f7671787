"""Decide how a study is told in Camtrap DP, the open standard of camera-trap data, and read back.

References
----------
.. [1] Camtrap DP 1.0.2 (2025-06-10), Biodiversity Information Standards (TDWG).
   https://camtrap-dp.tdwg.org
"""
