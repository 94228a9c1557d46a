package gritbook.shell.look.sketch

import java.util.Locale

/** The drawing as an SVG picture in the colour of the text around it, for page and paper. */
fun Sketch.toSvg(): String = buildString {
    append("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 ${Sketch.WIDTH.toInt()} ${Sketch.HEIGHT.toInt()}\" ")
    append("fill=\"none\" stroke=\"currentColor\" stroke-linejoin=\"round\" stroke-linecap=\"round\">")
    for (mark in marks) {
        val style = when (mark.pen) {
            Pen.INK -> "stroke-width=\"1\""
            Pen.FINE -> "stroke-width=\".4\""
            Pen.GONE -> "stroke-width=\".6\" stroke-dasharray=\"2.4 2\""
            Pen.SOLID -> "fill=\"currentColor\" stroke=\"none\""
            Pen.BODY -> "fill=\"var(--paper, #fbf8f1)\" stroke-width=\"1\""
            Pen.HERE -> "stroke-width=\"1.8\""
        }
        append("<path $style d=\"")
        for (at in mark.points.indices step 2) {
            append(if (at == 0) 'M' else 'L').append(number(mark.points[at])).append(' ').append(number(mark.points[at + 1]))
        }
        append(if (mark.closed) "Z\"/>" else "\"/>")
    }
    for (dot in dots) {
        append("<circle fill=\"currentColor\" stroke=\"none\" cx=\"${number(dot.x)}\" cy=\"${number(dot.y)}\" r=\"${number(dot.radius)}\"/>")
    }
    append("</svg>")
}

private fun number(value: Float) = String.format(Locale.ROOT, "%.2f", value).trimEnd('0').trimEnd('.')
