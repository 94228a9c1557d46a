package gritbook.shell.carry

import android.graphics.Bitmap
import android.graphics.BitmapFactory
import android.graphics.Matrix
import android.media.ExifInterface
import java.io.File
import java.io.IOException

/** A photo for the eye: turned upright and made small enough for a screen. */
class Picture(val bitmap: Bitmap, val fullWidth: Int, val fullHeight: Int)

object Pictures {
    /** Longest side of a picture for the screen, px: sharp at a fourfold zoom, some 7 MB. */
    private const val LONGEST = 1600

    /** Decodes [file]; away from the main thread. The whole photo is never in memory. */
    @Throws(IOException::class)
    fun read(file: File, longest: Int = LONGEST): Picture {
        val bounds = BitmapFactory.Options().apply { inJustDecodeBounds = true }
        BitmapFactory.decodeFile(file.path, bounds)
        if (bounds.outWidth <= 0 || bounds.outHeight <= 0) throw IOException("not a picture: ${file.name}")
        var sample = 1
        while (maxOf(bounds.outWidth, bounds.outHeight) / (sample * 2) >= longest) sample *= 2
        val options = BitmapFactory.Options().apply { inSampleSize = sample; inPreferredConfig = Bitmap.Config.RGB_565 }
        val flat = BitmapFactory.decodeFile(file.path, options) ?: throw IOException("not a picture: ${file.name}")
        val turn = turn(file)
        val upright = if (turn == null) flat else Bitmap.createBitmap(flat, 0, 0, flat.width, flat.height, turn, true)
        if (upright !== flat) flat.recycle()
        val swapped = turn != null && note(file) >= 5
        return if (swapped) Picture(upright, bounds.outHeight, bounds.outWidth) else Picture(upright, bounds.outWidth, bounds.outHeight)
    }

    private fun note(file: File) =
        runCatching { ExifInterface(file.path).getAttributeInt(ExifInterface.TAG_ORIENTATION, 1) }.getOrDefault(1)

    /** How the camera was held, by the file's EXIF note. */
    private fun turn(file: File): Matrix? {
        val note = note(file)
        val degrees = when (note) {
            3, 4 -> 180f
            6, 7 -> 90f
            5, 8 -> 270f
            else -> 0f
        }
        val mirrored = note in setOf(2, 4, 5, 7)
        if (degrees == 0f && !mirrored) return null
        return Matrix().apply {
            if (mirrored) postScale(-1f, 1f)
            postRotate(degrees)
        }
    }
}
