package gritbook.shell.carry

import android.app.Activity
import android.content.ActivityNotFoundException
import android.content.ClipData
import android.content.Context
import android.content.Intent
import android.net.Uri
import android.provider.MediaStore
import gritbook.shell.R
import java.io.File
import java.util.UUID

/** Pictures on their way from the camera or the storage into the book: files of our own, named at random. */
object Shots {
    private const val AUTHORITY = "gritbook.shell.photos"

    fun folder(context: Context) = File(context.filesDir, "shots")

    fun newName() = "${UUID.randomUUID()}.jpg"

    fun file(context: Context, name: String) = File(folder(context), name)

    fun uri(name: String): Uri = Uri.Builder().scheme("content").authority(AUTHORITY).appendPath(name).build()

    /** Asks a camera to write its picture into [name]. */
    fun camera(context: Context, name: String): Intent = Intent(MediaStore.ACTION_IMAGE_CAPTURE).apply {
        putExtra(MediaStore.EXTRA_OUTPUT, uri(name))
        clipData = ClipData.newUri(context.contentResolver, "photo", uri(name))
        addFlags(Intent.FLAG_GRANT_WRITE_URI_PERMISSION or Intent.FLAG_GRANT_READ_URI_PERMISSION)
    }

    /** Asks the storage for a picture. */
    private fun pick(): Intent = Intent(Intent.ACTION_OPEN_DOCUMENT).addCategory(Intent.CATEGORY_OPENABLE).setType("image/*")

    /** Opens a camera that writes into [name] and answers to [CAMERA]; the words for what stood in the way, null for nothing. */
    fun askCamera(activity: Activity, name: String): Int? = opened(activity, camera(activity, name), CAMERA, R.string.check_no_camera)

    /** Opens the storage's picker, which answers to [PICKER]; the words for what stood in the way, null for nothing. */
    fun askPicker(activity: Activity): Int? = opened(activity, pick(), PICKER, R.string.check_no_picker)

    // A camera that is not there says so itself: asking beforehand would need to name every camera in the manifest.
    private fun opened(activity: Activity, what: Intent, request: Int, missing: Int): Int? = try {
        open(activity, what, request)
        null
    } catch (_: ActivityNotFoundException) {
        missing
    } catch (_: SecurityException) {
        R.string.check_not_allowed
    }

    /** Tests set it. */
    @Suppress("DEPRECATION")
    var open: (Activity, Intent, Int) -> Unit = { activity, what, request -> activity.startActivityForResult(what, request) }

    /**
     * Whether the picture that a camera or the picker ([from]) was asked for lies in [name] now; away from the main thread.
     * Throws where the storage is full: a camera then leaves an empty file and says that all went well.
     */
    fun arrived(context: Context, request: Int, from: Uri?, name: String): Boolean {
        if (request == PICKER && from != null) copy(context, from, name)
        if (file(context, name).length() > 0) return true
        if (context.filesDir.usableSpace < LEAST_ROOM) throw java.io.IOException("No space left: nothing of the picture could be written")
        return false
    }

    /** Below this an empty picture means that there was no room for it, bytes. */
    private const val LEAST_ROOM = 500_000

    const val CAMERA = 1
    const val PICKER = 2

    /** Copies a picked picture to [name]; away from the main thread. */
    private fun copy(context: Context, from: Uri, name: String): File {
        folder(context).mkdirs()
        val file = file(context, name)
        val part = File(folder(context), "$name.part")
        val stream = context.contentResolver.openInputStream(from) ?: throw java.io.FileNotFoundException("$from")
        try {
            stream.use { input -> part.outputStream().use { output -> input.copyTo(output); output.fd.sync() } }
        } catch (failed: java.io.IOException) {
            part.delete()
            throw failed
        }
        if (!part.renameTo(file)) throw java.io.IOException("$part")
        return file
    }
}
