"""The bundled plotting script draws in a browser without any request."""

from twinangle.browser import uplot_licence, uplot_script, uplot_style


def test_the_licence_stands_beside_the_script() -> None:
    assert "Permission is hereby granted, free of charge" in uplot_licence()  # MIT
    assert "uPlot" in uplot_script()[:400]


def test_a_line_is_drawn_without_a_request(page) -> None:
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.set_content(
        f"<style>{uplot_style()}</style><div id=plot></div><script>{uplot_script()}</script>"
        "<script>new uPlot({width: 300, height: 200, scales: {x: {time: false}}, series: [{},"
        " {stroke: 'black', width: 2}]}, [[0, 1, 2], [0, 5, 1]], document.getElementById('plot'))"
        "</script>"
    )
    page.wait_for_function("document.querySelector('#plot canvas') !== null")
    dark = page.evaluate(
        "() => {const c = document.querySelector('#plot canvas');"
        "const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;"
        "let n = 0; for (let i = 3; i < d.length; i += 4) if (d[i] > 200) n++; return n}"
    )
    assert dark > 200
    assert not [url for url in requests if not url.startswith(("about:", "data:"))]
