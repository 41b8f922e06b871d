"""Sphinx settings of the documentation: `make docs` builds it, warnings are errors.

The site works from a folder and without a network: no fonts, scripts or styles of other hosts.
"""

import os
import sys
from functools import partialmethod
from pathlib import Path

from nbclient import NotebookClient

from twinangle import __version__

sys.path.insert(0, str(Path(__file__).parent / "extensions"))

from tutorial_outputs import kept_outputs

project = "twinangle"
author = "The twinangle authors"
copyright = "The twinangle authors; BSD-3-Clause"
release = version = __version__
html_title = f"twinangle {release}"
language = "en"

extensions = [
    "myst_nb",
    "numpydoc",
    "sphinx.ext.autodoc",
    "sphinx.ext.autosummary",
    "declared_fields",
    "mathml",
    "narrow_tables",
    "reference_blocks",
    "tutorial_outputs",
]
templates_path = ["_templates"]
exclude_patterns = ["_build", "extensions", "examples"]

html_theme = "furo"
html_static_path = ["_static"]
html_css_files = ["site.css"]
html_copy_source = False
html_show_sphinx = False
html_math_renderer = "mathml"
# No button asks a code host for anything, and the theme's own typefaces are those of the system.
html_theme_options = {"top_of_page_buttons": []}

myst_enable_extensions = ["colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 4

# Tutorials are executed once for each state of the program; `make pages` leaves them unexecuted,
# `make notebooks` executes them whatever was kept.
nb_execution_mode = "cache"
nb_execution_cache_path, tutorials_made_with = kept_outputs(
    Path(__file__).parent / "_build/executed"
)
nb_execution_raise_on_error = True
nb_execution_timeout = 300
nb_merge_streams = True
suppress_warnings = ["myst-nb.lexer"]  # cells that were not executed; they are Python
# What a terminal cell prints comes in pieces: put together as they are, before the pieces are
# merged with a line break after each.
NotebookClient.__init__ = partialmethod(NotebookClient.__init__, coalesce_streams=True)
# So that a cell that calls `twinangle` finds the one of this environment, and paths in it none of
# this machine.
os.environ["PATH"] = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])

autosummary_generate = True
autosummary_ignore_module_all = False
autosummary_imported_members = True
autodoc_typehints = "none"  # numpydoc's sections say types, units and shapes
numpydoc_show_class_members = False
nitpicky = True  # a name in a docstring that is marked as a reference and leads nowhere is an error
numpydoc_class_members_toctree = False
