package gritbook.shell.look.photo

/**
 * Where a photo lies in a view: [scale] view px a photo px, its upper left at ([left], [top]). Never smaller than whole, never
 * off the view.
 */
class PhotoPlace {
    var scale = 1f
        private set
    var left = 0f
        private set
    var top = 0f
        private set
    private var viewWidth = 0f
    private var viewHeight = 0f
    private var photoWidth = 1f
    private var photoHeight = 1f

    /** The scale at which the whole photo fits. */
    val wholeScale: Float get() = if (viewWidth <= 0f || viewHeight <= 0f) 1f else minOf(viewWidth / photoWidth, viewHeight / photoHeight)

    val isWhole: Boolean get() = scale <= wholeScale * 1.001f

    /** How far a photo px may be blown up, view px. */
    private val closest get() = maxOf(wholeScale, CLOSEST)

    /** Another photo comes: nothing of the last one's place is kept. */
    fun forget() {
        viewWidth = 0f
        viewHeight = 0f
    }

    /** Sizes of view and photo, px. What was in the middle stays there. True where nothing was there before. */
    fun sizes(viewWidth: Float, viewHeight: Float, photoWidth: Float, photoHeight: Float): Boolean {
        val first = this.viewWidth <= 0f || this.photoWidth != photoWidth || this.photoHeight != photoHeight
        val wasWhole = first || isWhole
        val middleX = toPhotoX(this.viewWidth / 2)
        val middleY = toPhotoY(this.viewHeight / 2)
        this.viewWidth = viewWidth
        this.viewHeight = viewHeight
        this.photoWidth = photoWidth.coerceAtLeast(1f)
        this.photoHeight = photoHeight.coerceAtLeast(1f)
        if (wasWhole) whole() else look(middleX, middleY, scale)
        return first
    }

    /** As close as a part of the photo still fits whole. */
    fun fill(left: Float, top: Float, right: Float, bottom: Float) =
        look((left + right) / 2, (top + bottom) / 2, minOf(viewWidth / (right - left).coerceAtLeast(1f), viewHeight / (bottom - top).coerceAtLeast(1f)))

    fun whole() {
        scale = wholeScale
        keep()
    }

    /** Puts a point of the photo in the middle at a scale. */
    fun look(photoX: Float, photoY: Float, scale: Float) {
        this.scale = scale.coerceIn(wholeScale, closest)
        left = viewWidth / 2 - photoX * this.scale
        top = viewHeight / 2 - photoY * this.scale
        keep()
    }

    /** [factor] times closer around a point of the view. */
    fun zoom(factor: Float, x: Float, y: Float) {
        val photoX = toPhotoX(x)
        val photoY = toPhotoY(y)
        scale = (scale * factor).coerceIn(wholeScale, closest)
        left = x - photoX * scale
        top = y - photoY * scale
        keep()
    }

    fun pan(dx: Float, dy: Float) {
        left += dx
        top += dy
        keep()
    }

    private fun keep() {
        left = kept(left, photoWidth * scale, viewWidth)
        top = kept(top, photoHeight * scale, viewHeight)
    }

    private fun kept(from: Float, long: Float, room: Float) = if (long <= room) (room - long) / 2 else from.coerceIn(room - long, 0f)

    fun toPhotoX(x: Float) = (x - left) / scale

    fun toPhotoY(y: Float) = (y - top) / scale

    fun toViewX(photoX: Float) = left + photoX * scale

    fun toViewY(photoY: Float) = top + photoY * scale

    private companion object {
        const val CLOSEST = 8f
    }
}
