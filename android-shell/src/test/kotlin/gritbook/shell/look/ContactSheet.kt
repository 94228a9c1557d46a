package gritbook.shell.look

import android.graphics.Bitmap
import android.graphics.Canvas
import android.graphics.Paint
import android.graphics.RectF

/** The picture of the app that stands in the documentation: chosen screens side by side, written once all of them were drawn. */
object ContactSheet {
    private val wanted = listOf(
        "02-home-en-port-day-100", "07-check-read-en-port-day-100", "23-grade-photo-en-port-day-100", "12-call-en-port-day-100", "31-why-bore-en-port-day-100", "35-track-many-en-port-day-100",
        "03-check-photo-es-port-night-100", "24-wear-es-port-night-100", "29-pump-look-due-es-port-night-100", "16-change-hold-es-port-night-100", "10-grade-es-port-day-200", "12-call-es-port-day-200",
    )
    private val pictures = HashMap<String, Bitmap>()
    private const val WIDTH = 252
    private const val HEIGHT = 448
    private const val GAP = 12
    private const val COLUMNS = 6

    fun add(name: String, picture: Bitmap) {
        if (name !in wanted) return
        pictures[name] = Bitmap.createScaledBitmap(picture, WIDTH, HEIGHT, true)
        if (pictures.keys.containsAll(wanted)) write()
    }

    private fun write() {
        val rows = wanted.size / COLUMNS
        val sheet = Bitmap.createBitmap(COLUMNS * (WIDTH + GAP) + GAP, rows * (HEIGHT + GAP) + GAP, Bitmap.Config.ARGB_8888)
        val canvas = Canvas(sheet)
        canvas.drawColor(0xFFD9D3C4.toInt())
        val edge = Paint().apply { style = Paint.Style.STROKE; color = 0xFF16181A.toInt() }
        for ((at, name) in wanted.withIndex()) {
            val x = GAP + at % COLUMNS * (WIDTH + GAP)
            val y = GAP + at / COLUMNS * (HEIGHT + GAP)
            canvas.drawBitmap(pictures.getValue(name), x.toFloat(), y.toFloat(), null)
            canvas.drawRect(RectF(x - 0.5f, y - 0.5f, x + WIDTH + 0.5f, y + HEIGHT + 0.5f), edge)
        }
        keep(sheet, "phone")
    }
}
