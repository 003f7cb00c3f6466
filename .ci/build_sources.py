"""The build backend: setuptools, told in a dot folder what the archive of sources holds."""

from setuptools.build_meta import *  # noqa: F403 - a backend is its hooks, all of them
from setuptools.command.egg_info import manifest_maker

manifest_maker.template = ".ci/sources.in"
