package gritbook.shell.look.photo

import android.content.Context
import android.graphics.Bitmap
import android.graphics.Canvas
import android.graphics.Paint
import android.graphics.RectF
import android.os.Bundle
import android.os.Parcelable
import android.view.GestureDetector
import android.view.MotionEvent
import android.view.ScaleGestureDetector
import android.view.View
import gritbook.shell.look.Look

/** A photo sampled for display and the size of the whole one, upright, px. */
class ShownPhoto(val bitmap: Bitmap, val widthPx: Int, val heightPx: Int)

/** A photo that can be pinched closer, moved, and brought back whole by a double tap. */
abstract class PhotoPane(context: Context) : View(context) {
    protected val look = Look(context)
    val place = PhotoPlace()
    private val onto = RectF()
    private val smooth = Paint(Paint.FILTER_BITMAP_FLAG)
    private var waiting: FloatArray? = null

    /** What is shown, sampled for display; null while it is being read. */
    protected var photo: ShownPhoto? = null
        private set
    private var around: RectF? = null

    /** Shows a photo of [widthPx] by [heightPx], sampled to [bitmap]; [around] is what to fill the view with at first, px of the photo. */
    fun show(bitmap: Bitmap, widthPx: Int, heightPx: Int, around: RectF? = null) {
        photo = ShownPhoto(bitmap, widthPx, heightPx)
        this.around = around
        place.forget()
        fit()
        showsPhoto()
        requestLayout()
        invalidate()
    }

    init {
        isFocusable = true
        isClickable = true
    }

    /** A new photo is there. */
    protected open fun showsPhoto() = Unit

    /** A tap at a point of the view. */
    protected open fun tapped(x: Float, y: Float) = Unit

    /** Draws over the photo. */
    protected abstract fun drawOver(canvas: Canvas)

    private val pinch = ScaleGestureDetector(context, object : ScaleGestureDetector.SimpleOnScaleGestureListener() {
        override fun onScale(detector: ScaleGestureDetector): Boolean {
            place.zoom(detector.scaleFactor, focus(detector.focusX, width), focus(detector.focusY, height))
            moved()
            return true
        }
    })

    private val finger = GestureDetector(context, object : GestureDetector.SimpleOnGestureListener() {
        override fun onDown(event: MotionEvent) = true

        override fun onScroll(from: MotionEvent?, to: MotionEvent, dx: Float, dy: Float): Boolean {
            place.pan(-dx, -dy)
            moved()
            return true
        }

        override fun onDoubleTap(event: MotionEvent): Boolean {
            if (place.isWhole) place.zoom(CLOSER, event.x, event.y) else place.whole()
            moved()
            return true
        }

        override fun onSingleTapUp(event: MotionEvent): Boolean {
            tapped(event.x, event.y)
            return true
        }
    })

    /** Around what two fingers zoom: the point between them, or the middle where that lies at the edge or beside the photo. */
    private fun focus(at: Float, size: Int) = if (at in size * EDGE..size * (1 - EDGE)) at else size / 2f

    /** Closer to the middle of what is seen. */
    fun closer() {
        place.zoom(CLOSER, width / 2f, height / 2f)
        moved()
    }

    fun whole() {
        place.whole()
        moved()
    }

    /** Hears that a hand moved or zoomed the photo. */
    var onMoved: () -> Unit = {}

    protected fun moved() {
        invalidate()
        onMoved()
    }

    /** What is seen, as shares of the photo: what stands in the middle, and how much closer than whole. */
    class Stance(val x: Float, val y: Float, val closer: Float)

    /** Where the photo stands; null while there is none. */
    val stance: Stance?
        get() = photo?.takeIf { width > 0 }?.let {
            Stance(place.toPhotoX(width / 2f) / it.widthPx, place.toPhotoY(height / 2f) / it.heightPx, place.scale / place.wholeScale)
        }

    /** Stands as another photo does: the same share of it in the middle, as close. Nobody is told. */
    fun stand(like: Stance) {
        val photo = photo ?: return
        if (width == 0) return
        place.look(like.x * photo.widthPx, like.y * photo.heightPx, like.closer * place.wholeScale)
        invalidate()
    }

    override fun onSizeChanged(width: Int, height: Int, oldWidth: Int, oldHeight: Int) {
        super.onSizeChanged(width, height, oldWidth, oldHeight)
        fit()
    }

    private fun fit() {
        val photo = photo ?: return
        if (width == 0 || height == 0) return
        val first = place.sizes(width.toFloat(), height.toFloat(), photo.widthPx.toFloat(), photo.heightPx.toFloat())
        if (first) around?.let { place.fill(it.left, it.top, it.right, it.bottom) }
        waiting?.let { (x, y, scale) -> place.look(x, y, scale) }
        waiting = null
    }

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val width = resolveSize(look.dp(328f).toInt(), widthSpec)
        val photo = photo
        val wished = if (photo == null) width * 3 / 4 else (width.toLong() * photo.heightPx / photo.widthPx).toInt()
        // Where nothing limits it, a tall photo is shown no higher than a square.
        setMeasuredDimension(width, resolveSize(minOf(wished, width), heightSpec))
    }

    @Suppress("ClickableViewAccessibility")
    override fun onTouchEvent(event: MotionEvent): Boolean {
        if (event.actionMasked == MotionEvent.ACTION_POINTER_DOWN || !place.isWhole) parent?.requestDisallowInterceptTouchEvent(true)
        pinch.onTouchEvent(event)
        if (!pinch.isInProgress) finger.onTouchEvent(event)
        return true
    }

    override fun onDraw(canvas: Canvas) {
        val photo = photo
        if (photo == null) {
            canvas.drawColor(look.ground)
            return
        }
        canvas.save()
        canvas.clipRect(0, 0, width, height)
        canvas.drawColor(look.ground)
        onto.set(place.left, place.top, place.toViewX(photo.widthPx.toFloat()), place.toViewY(photo.heightPx.toFloat()))
        canvas.drawBitmap(photo.bitmap, null, onto, smooth)
        drawOver(canvas)
        canvas.restore()
        if (isFocused) canvas.drawRect(look.line, look.line, width - look.line, height - look.line, focusPen)
    }

    private val focusPen = look.pen(look.violet, look.line * 2)

    override fun onSaveInstanceState(): Parcelable = Bundle().apply {
        putParcelable("super", super.onSaveInstanceState())
        if (!place.isWhole) putFloatArray("look", floatArrayOf(place.toPhotoX(width / 2f), place.toPhotoY(height / 2f), place.scale))
    }

    override fun onRestoreInstanceState(state: Parcelable?) {
        val kept = state as? Bundle ?: return super.onRestoreInstanceState(state)
        @Suppress("DEPRECATION")
        super.onRestoreInstanceState(kept.getParcelable("super"))
        waiting = kept.getFloatArray("look")
        fit()
    }

    protected companion object {
        const val CLOSER = 2.5f
        const val EDGE = 0.1f
    }
}
