"""How long lists are cut: by a cursor over the keys, which are made in order of time."""

from rest_framework.pagination import CursorPagination


class NewestFirst(CursorPagination):
    """Newest first; rows that come in while somebody pages neither repeat nor hide others."""

    ordering = "-id"
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 500
