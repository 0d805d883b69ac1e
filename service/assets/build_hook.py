"""Let the wheel carry the browser files and translations: whoever installs it needs neither Node nor npm."""

import sys
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class BrowserFilesHook(BuildHookInterface[Any]):
    """Runs ``service.assets.build`` and ``catalogues`` before a wheel is put together."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Fetch and copy the browser files where they are not there yet; make the translations ready.

        Raises
        ------
        AssetsMissing
            If browser files cannot be fetched.
        """
        del version, build_data
        sys.path.insert(0, self.root)  # the build runs apart from the project's environment
        try:
            from service.assets.build import build
            from service.assets.catalogues import compile_catalogues

            build()
            compile_catalogues()
        finally:
            sys.path.remove(self.root)
