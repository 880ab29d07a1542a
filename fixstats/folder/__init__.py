"""The shop folder: settings and catalogue, read and checked. Imports nothing heavy."""

from fixstats.folder.catalogue import Catalogue, FailureMode
from fixstats.folder.links import build_catalogue, fold, read_catalogue
from fixstats.folder.settings import Settings
from fixstats.folder.shopfolder import DEFAULT_CATALOGUE, ShopFolder, find_folder, make_folder

__all__ = [
    "DEFAULT_CATALOGUE",
    "Catalogue",
    "FailureMode",
    "Settings",
    "ShopFolder",
    "build_catalogue",
    "find_folder",
    "fold",
    "make_folder",
    "read_catalogue",
]
