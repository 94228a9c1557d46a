package gritbook.shell.screens.check

import android.content.Context
import android.graphics.Canvas
import android.graphics.Matrix
import android.graphics.Paint
import android.graphics.Path
import android.graphics.RectF
import android.view.GestureDetector
import android.view.MotionEvent
import android.view.ScaleGestureDetector
import android.view.View
import gritbook.shell.R
import gritbook.shell.carry.Picture
import gritbook.shell.frame.dp

/** A photo with outlines over it; two fingers spread it, one moves it, two quick touches bring it back. Points are pixels of the full photo. */
class SeenView(context: Context) : View(context) {
    private var picture: Picture? = null
    private val outlines = Path()
    private val drawn = Path()
    private val place = Matrix()
    private val start = Matrix()
    private val pen = Paint(Paint.ANTI_ALIAS_FLAG).apply {
        style = Paint.Style.STROKE
        strokeWidth = context.dp(2).toFloat()
        color = context.getColor(R.color.violet)
    }
    private var focus: RectF? = null

    /** How far it is spread against the first view. */
    var zoom = 1f
        private set

    /** Where a single touch landed, in pixels of the full photo. */
    var touched: ((Float, Float) -> Unit)? = null

    private val spread = ScaleGestureDetector(context, object : ScaleGestureDetector.SimpleOnScaleGestureListener() {
        override fun onScale(detector: ScaleGestureDetector): Boolean {
            val by = detector.scaleFactor.coerceIn(LEAST / zoom, MOST / zoom)
            zoom *= by
            place.postScale(by, by, detector.focusX, detector.focusY)
            invalidate()
            return true
        }
    })
    private val hand = GestureDetector(context, object : GestureDetector.SimpleOnGestureListener() {
        override fun onDown(e: MotionEvent) = true

        override fun onScroll(e1: MotionEvent?, e2: MotionEvent, dx: Float, dy: Float): Boolean {
            if (zoom <= 1f) return false
            place.postTranslate(-dx, -dy)
            invalidate()
            return true
        }

        override fun onDoubleTap(e: MotionEvent): Boolean {
            home()
            return true
        }

        override fun onSingleTapUp(e: MotionEvent): Boolean {
            val tell = touched ?: return performClick()
            val back = Matrix()
            if (!place.invert(back)) return false
            val point = floatArrayOf(e.x, e.y)
            back.mapPoints(point)
            tell(point[0], point[1])
            return true
        }
    })

    /** [around]: what to fill the view with at first, px of the full photo. */
    fun show(picture: Picture, around: RectF? = null) {
        this.picture = picture
        focus = around
        home()
    }

    fun outline(shapes: List<List<Double>>) {
        outlines.rewind()
        for (shape in shapes) {
            for (at in 0 until shape.size - 1 step 2) {
                val (x, y) = shape[at].toFloat() to shape[at + 1].toFloat()
                if (at == 0) outlines.moveTo(x, y) else outlines.lineTo(x, y)
            }
            if (shape.isNotEmpty()) outlines.close()
        }
        invalidate()
    }

    private var marks: List<Double> = emptyList()

    /** Crosses at points of the full photo: x and y in turn. */
    fun marks(at: List<Double>) {
        marks = at
        invalidate()
    }

    private fun home() {
        val picture = picture ?: return
        if (width == 0) return
        val whole = RectF(0f, 0f, picture.fullWidth.toFloat(), picture.fullHeight.toFloat())
        start.setRectToRect(focus ?: whole, RectF(0f, 0f, width.toFloat(), height.toFloat()), Matrix.ScaleToFit.CENTER)
        place.set(start)
        zoom = 1f
        invalidate()
    }

    override fun onSizeChanged(w: Int, h: Int, oldw: Int, oldh: Int) = home()

    override fun onTouchEvent(event: MotionEvent): Boolean {
        if (event.pointerCount > 1 || zoom > 1f) parent?.requestDisallowInterceptTouchEvent(true)
        spread.onTouchEvent(event)
        hand.onTouchEvent(event)
        return true
    }

    override fun onDraw(canvas: Canvas) {
        val picture = picture ?: return
        canvas.save()
        canvas.concat(place)
        canvas.scale(picture.fullWidth.toFloat() / picture.bitmap.width, picture.fullHeight.toFloat() / picture.bitmap.height)
        canvas.drawBitmap(picture.bitmap, 0f, 0f, BITMAP)
        canvas.restore()
        outlines.transform(place, drawn)
        // Thin while grains are small on the screen: the line must not hide what it is around.
        pen.strokeWidth = context.dp(1) * Math.sqrt(zoom.toDouble()).toFloat() * 0.6f
        canvas.drawPath(drawn, pen)
        pen.strokeWidth = context.dp(2).toFloat()
        val point = FloatArray(2)
        val arm = context.dp(14).toFloat()
        for (at in 0 until marks.size - 1 step 2) {
            point[0] = marks[at].toFloat()
            point[1] = marks[at + 1].toFloat()
            place.mapPoints(point)
            canvas.drawLine(point[0] - arm, point[1], point[0] + arm, point[1], pen)
            canvas.drawLine(point[0], point[1] - arm, point[0], point[1] + arm, pen)
        }
    }

    private companion object {
        const val LEAST = 1f
        const val MOST = 16f
        val BITMAP = Paint(Paint.FILTER_BITMAP_FLAG)
    }
}
