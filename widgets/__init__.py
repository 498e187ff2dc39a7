from widgets.neck import NeckView
