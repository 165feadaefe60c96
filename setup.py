"""The compiled reader of candump lines; where it cannot be built, everything works without it."""

from setuptools import Extension, setup

setup(ext_modules=[Extension("canlog.capture._candump", ["canlog/capture/_candump.c"], optional=True)])
