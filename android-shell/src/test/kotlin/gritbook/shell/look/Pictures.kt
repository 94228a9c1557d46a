package gritbook.shell.look

import android.content.Context
import android.content.res.Configuration
import android.graphics.Bitmap
import android.graphics.Canvas
import android.view.ContextThemeWrapper
import android.view.View
import gritbook.shell.R
import org.robolectric.RuntimeEnvironment
import java.io.File

/** Where the pictures of this run go. */
val pictureFolder: File = File(System.getProperty("gritbook.pictures") ?: "target/pictures").apply { mkdirs() }

/** A phone as the test wants it: language, size, light, type. */
fun phone(language: String = "en", landscape: Boolean = false, night: Boolean = false, font: Float = 1f): Context {
    val size = if (landscape) "w640dp-h360dp" else "w360dp-h640dp"
    val region = if (language == "es") "es-rMX" else "en-rUS"
    RuntimeEnvironment.setQualifiers("$region-$size-${if (landscape) "land" else "port"}-${if (night) "night" else "notnight"}-xhdpi")
    RuntimeEnvironment.setFontScale(font)
    // As on a phone, where the language of the system is that of the process.
    java.util.Locale.setDefault(RuntimeEnvironment.getApplication().resources.configuration.locales[0])
    return ContextThemeWrapper(RuntimeEnvironment.getApplication(), R.style.Gritbook)
}

/** Lays [view] out in [width] by [height] dp; no height lets it take what it needs. */
fun layOut(view: View, width: Int = 360, height: Int? = null): View {
    val density = view.resources.displayMetrics.density
    val across = View.MeasureSpec.makeMeasureSpec((width * density).toInt(), View.MeasureSpec.EXACTLY)
    val down = height?.let { View.MeasureSpec.makeMeasureSpec((it * density).toInt(), View.MeasureSpec.EXACTLY) }
        ?: View.MeasureSpec.makeMeasureSpec(0, View.MeasureSpec.UNSPECIFIED)
    view.measure(across, down)
    view.layout(0, 0, view.measuredWidth, view.measuredHeight)
    return view
}

/** What [view] looks like, on paper. */
fun draw(view: View): Bitmap {
    val picture = Bitmap.createBitmap(view.width, view.height, Bitmap.Config.ARGB_8888)
    picture.eraseColor(view.context.getColor(R.color.paper))
    view.draw(Canvas(picture))
    return picture
}

/** Keeps a picture for people to judge. */
fun keep(picture: Bitmap, name: String) {
    File(pictureFolder, "$name.png").outputStream().use { picture.compress(Bitmap.CompressFormat.PNG, 100, it) }
}

/** Share of pixels of [picture] that are not its ground. */
fun inked(picture: Bitmap): Double {
    val pixels = IntArray(picture.width * picture.height)
    picture.getPixels(pixels, 0, picture.width, 0, 0, picture.width, picture.height)
    val ground = pixels[0]
    return pixels.count { it != ground }.toDouble() / pixels.size
}

/** How two pictures of one size differ: share of pixels that are not the same. */
fun difference(one: Bitmap, other: Bitmap): Double {
    require(one.width == other.width && one.height == other.height)
    val a = IntArray(one.width * one.height).also { one.getPixels(it, 0, one.width, 0, 0, one.width, one.height) }
    val b = IntArray(a.size).also { other.getPixels(it, 0, one.width, 0, 0, one.width, one.height) }
    return a.indices.count { a[it] != b[it] }.toDouble() / a.size
}

/** The qualifiers of this run, to name pictures by. */
fun Context.variant(): String {
    val configuration = resources.configuration
    val night = configuration.uiMode and Configuration.UI_MODE_NIGHT_MASK == Configuration.UI_MODE_NIGHT_YES
    return listOf(
        configuration.locales[0].language,
        if (configuration.orientation == Configuration.ORIENTATION_LANDSCAPE) "land" else "port",
        if (night) "night" else "day",
        if (configuration.fontScale > 1.5f) "200" else "100",
    ).joinToString("-")
}
