"""Let the wheel carry the browser files: whoever installs it needs neither Node nor npm."""

import sys
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class BrowserFilesHook(BuildHookInterface[Any]):
    """Runs ``service.assets.build`` before a wheel is put together."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Fetch and copy the browser files where they are not there yet.

        Raises
        ------
        AssetsMissing
            If they cannot be fetched.
        """
        del version, build_data
        sys.path.insert(0, self.root)  # the build runs apart from the project's environment
        try:
            from service.assets.build import build

            build()
        finally:
            sys.path.remove(self.root)
