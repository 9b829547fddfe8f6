"""Invented layouts of exports, each written from simulated links, with the truth beside it.

Every maker, heading, order and file name here is made up; nothing is modelled on an existing program. The links come
from the program's own simulator (archive.demo), so that values are physical; the truth is built from the same Python
values that the layouts print, never by reading the layouts.
"""
